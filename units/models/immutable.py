"""Rows that are written once: what supersedes them is a new row."""

from __future__ import annotations

from typing import Any, Never

from django.db import models


class WrittenOnce(TypeError):
    """Someone tried to change or remove a row that is evidence."""


class WrittenOnceQuerySet(models.QuerySet):
    """A query that reads and creates, and has no way to change or remove."""

    def _refuse(self, *args: Any, **kwargs: Any) -> Never:
        raise WrittenOnce(f"A {self.model._meta.verbose_name} is written once; make a new one that supersedes it.")

    update = bulk_update = update_or_create = delete = _refuse

    def bulk_create(self, objs: Any, *args: Any, **kwargs: Any) -> Any:
        """Create rows, never update rows that are already there."""
        if kwargs.get("update_conflicts"):
            self._refuse()
        return super().bulk_create(objs, *args, **kwargs)


class Immutable(models.Model):
    """Base of such rows. Only the reference to a person who was deleted is ever blanked, by the database rules."""

    objects = WrittenOnceQuerySet.as_manager()

    class Meta:
        abstract = True

    def save_base(self, *args: Any, **kwargs: Any) -> None:
        """Insert; a row that exists already is refused, whichever way it was asked for."""
        if not self._state.adding:
            self._refuse()
        super().save_base(*args, **{**kwargs, "force_insert": True, "force_update": False, "update_fields": None})

    def delete(self, *args: Any, **kwargs: Any) -> Never:
        """Refuse."""
        self._refuse()

    def _refuse(self) -> Never:
        raise WrittenOnce(f"This {self._meta.verbose_name} is written once; make a new one that supersedes it.")
