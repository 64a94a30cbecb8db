"""Rows of an archive as they come in: line by line, brought to this version's fields, each value one that fits."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from typing import Any, NoReturn

from django.core.exceptions import ValidationError
from django.db import models

from units.archive.harmless import refuse_script
from units.archive.rows import LOCAL, AnyRow, travelling
from units.archive.versions import is_newer, refused, upgraded
from units.models import Person

MOST_BYTES_OF_A_ROW = 1 << 26
MOST_PEOPLE = 500
AGAIN = "Export the bench again."


class Rows:
    """The rows of one archive; each pass reads them anew, so that none has to be held."""

    def __init__(self, archive: zipfile.ZipFile, name: str, version: int) -> None:
        self._archive, self._name, self._version = archive, name, version
        self._members = set(archive.namelist())

    def written(self, kind: str) -> Iterator[AnyRow]:
        """Yield a kind's rows as they stand in the file; an archive from before there was the kind has none."""
        if (member := f"rows/{kind}.jsonl") not in self._members:
            return
        with self._archive.open(member) as part:
            for number in range(1, 1 << 40):
                line = part.readline(MOST_BYTES_OF_A_ROW + 1)
                if not line:
                    return
                yield self._parsed(line, f"{member}, line {number}")

    def _parsed(self, line: bytes, where: str) -> AnyRow:
        if len(line) > MOST_BYTES_OF_A_ROW:
            raise refused(self._name, f"{where}: a row without an end", "rows of a bench", AGAIN)
        try:
            row = json.loads(line, parse_constant=_no_number)
        except (ValueError, RecursionError) as error:
            raise refused(self._name, f"{where}: no JSON", "one row a line", AGAIN) from error
        if not isinstance(row, dict) or not isinstance(row.get("id"), str | int):
            raise refused(self._name, f"{where}: no row", "an object with its id", AGAIN)
        return row

    def of(self, model: type[models.Model]) -> Iterator[AnyRow]:
        """Yield a model's rows as this version has them."""
        kind = model.__name__
        for row in self.written(kind):
            yield upgraded(kind, row, version=self._version)

    def checked(self, model: type[models.Model]) -> Iterator[AnyRow]:
        """Yield a model's rows with every value of their own looked at.

        Raises
        ------
        UnreadableFile
            If a field is one that is not known here, lacks a value that it needs, or holds one that does not fit.
        """
        known = {each.name for each in (*model._meta.concrete_fields, *model._meta.many_to_many)}
        for row in self.of(model):
            if unknown := sorted(row.keys() - known):
                raise is_newer(self._name, f"the field {unknown[0]} of {model.__name__}")
            for each in model._meta.concrete_fields:
                self._refuse_misfit(model, each, row)
            refuse_script(model, row, self._name)
            yield row

    def _refuse_misfit(self, model: type[models.Model], each: models.Field, row: AnyRow) -> None:
        try:
            settled(model, each, row)
        except (ValidationError, ValueError, TypeError, OverflowError, ArithmeticError) as error:
            why = " ".join(error.messages) if isinstance(error, ValidationError) else str(error)
            found = f"rows that do not fit ({model.__name__} {row['id']}, {each.name}: {why})"
            raise refused(self._name, found, "rows of a bench", AGAIN) from error

    def kinds_unknown_here(self) -> list[str]:
        """Return the kinds of rows that the archive has and this version does not."""
        known = {f"rows/{model.__name__}.jsonl" for model in travelling()}
        return sorted(each for each in self._members if each.startswith("rows/") and each not in known)


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def settled(model: type[models.Model], each: models.Field, row: AnyRow) -> Any:
    """Return a field's value in a row; one that an earlier version did not write is the model's default.

    What a field points at stays a name of the archive.
    """
    if each.name in LOCAL.get(model.__name__, ()):
        return None
    if each.name not in row:
        return _default(each)
    value = row[each.name] if each.is_relation else each.to_python(row[each.name])
    if value is None:
        if not each.null:
            raise ValueError("nothing, where a value is needed")
        return None
    if each.related_model is Person:
        Person._meta.get_field("username").run_validators(value)
    elif not each.is_relation:
        each.run_validators(value)
        if each.choices and value not in each.empty_values and value not in dict(each.flatchoices):
            raise ValueError(f"“{value}” is not known here")
        if isinstance(value, str) and "\x00" in value:
            raise ValueError("a character that no text has")
    return value


def _default(each: models.Field) -> Any:
    if each.has_default() or each.null:
        return each.get_default()
    if each.empty_strings_allowed and each.blank:
        return ""
    raise ValueError("not there, and nothing to take instead")
