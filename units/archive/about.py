"""What an archive says of itself to somebody who has nothing but the file."""

README = """\
# A bench of Cooling Ledger

This zip holds one reviewer's bench whole. It opens with any zip program; every part is text or the original file.

| part | what it is |
|---|---|
| `manifest.json` | format and version, name, when it was written, number of rows of each kind, digest of the content |
| `rows/<Kind>.jsonl` | one JSON object a line for each row; `id` names it, what points elsewhere holds an `id` |
| `evidence/<SHA-256>` | log files byte for byte; `rows/SessionFile.jsonl` has the names they came with |
| `certificates/…` | calibration certificates as uploaded |
| `published/…` | tables of raw data that were published |
| `people.jsonl` | user names and roles; no password, no address |
| `points.csv` | all reduced points as a table, derived from the rows; not read back |
| `SHA256SUMS` | checksum of every other part; `sha256sum -c SHA256SUMS` checks them |

Quantities are SI; a field's name ends in its unit: `_w` watt, `_c` degree Celsius, `_w_per_k`, `_j_per_k`, `_m3`, `_s`,
`_u95_…` expanded uncertainty at 95 %, `_u` standard uncertainty. EER is in Btu/(W·h), COP in W/W. Instants are UTC.
`rows/Reduction.jsonl` holds, for each reduction, the session document it was made from and the full result; what later
reductions supersede is still there.

Bring it back on any installation: signed in, under "Bring a bench in", or with
`python manage.py import_bench FILE --owner USER`. The format has a version, stated in `manifest.json`; a program reads
its own and every earlier one, and refuses a later one. Accounts do not travel: who brings it in owns the bench there,
and whoever else is named in the rows appears as an account that nobody can sign in to; with `--same-people` accounts of
the same user names are named instead. Neither gives anybody a role. Tokens of programs do not travel. Everything else
is restored, compared row by row, and the digest of the content is the same.

Licence: what was published carries the licence stated in each edition (`rows/Edition.jsonl`). Everything else is
private to the bench: serial numbers, notes, names. Do not pass the archive on as it is.
"""
