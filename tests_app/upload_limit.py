"""Files on their way in through a form: written to disk up to the limit, never kept in memory."""

from __future__ import annotations

from contextlib import suppress

from django.conf import settings
from django.core.files.uploadhandler import TemporaryFileUploadHandler


class LimitedUploadHandler(TemporaryFileUploadHandler):
    """Counts what goes beyond the limit and drops it, so that the file can be refused in words."""

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Write a block while the file is within the limit; where the disk is full, the file goes at once."""
        if start + len(raw_data) > settings.MAX_UPLOAD_BYTES:
            return
        try:
            self.file.write(raw_data)
        except OSError:
            with suppress(OSError):  # what it still holds in memory finds no room either
                self.file.close()
            raise
