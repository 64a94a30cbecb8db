"""Which method made a number, and what each version changed."""

METHOD_VERSION = "1.0"

HISTORY: dict[str, str] = {
    "1.0": "First version: room heat balance with envelope, storage and slow mass; GUM budget; cross-checks; limits.",
}
