"""What the OpenAPI document says beside what the views say: how each address refuses."""

from __future__ import annotations

from typing import Any

PROBLEM = {
    "type": "object",
    "description": "What is wrong: `errors` with a sentence each, `detail`, or one list of sentences a field.",
    "additionalProperties": True,
}
WORDS = {
    "400": "The request breaks the schema",
    "401": "No token, or one that is unknown, expired or revoked",
    "403": "The role does not suffice",
    "404": "Nothing here that you may see",
    "406": "In none of the forms that were asked for",
    "413": "Larger than this site takes",
    "415": "The body is in a form that is not read here",
    "422": "The content cannot be used; the sentence says why and what to do",
}


def with_refusals(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Add to each operation the refusals that it can answer with, all of one shape."""
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = PROBLEM
    for path in result["paths"].values():
        for operation in path.values():
            for status in refusals_of(operation):
                operation["responses"].setdefault(status, _refusal(status))
    return result


def refusals_of(operation: dict[str, Any]) -> list[str]:
    """Return the status codes an operation can refuse with, from what it takes and who may ask."""
    found = ["400", "406"]
    if any(rule for rule in operation.get("security", ())):
        found += ["401", "403", "404"]
    if "requestBody" in operation:
        found += ["413", "415", "422"]
    parameters = operation.get("parameters", ())
    if any(parameter["in"] == "path" for parameter in parameters):
        found += ["404", "422"]
    if any(parameter["name"] == "cursor" for parameter in parameters):
        found += ["404"]  # a page that is not there
    return sorted(set(found))


def _refusal(status: str) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    return {"description": WORDS[status], "content": {"application/json": {"schema": schema}}}
