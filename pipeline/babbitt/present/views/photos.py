"""Where the photos of findings lie."""

from __future__ import annotations

from pathlib import Path

from babbitt.logbook.folder import Logbook
from babbitt.model.finding import PHOTO_NAME
from babbitt.register.records.teardowns import kept_photos


def photo_file(book: Logbook, name: str, *, small: bool) -> Path | None:
    """Return the file of a photo, or of its thumbnail; None: no finding has it, or it is missing.

    Args:
        book: the logbook.
        name: as findings list it; any other is none.
        small: the thumbnail; the photo itself where that is missing.
    """
    with book.register.reading() as session:
        if not PHOTO_NAME.fullmatch(name) or name not in kept_photos(session):
            return None
    thumbnail, photo = book.thumbnail_path(name), book.photo_path(name)
    if small and thumbnail.is_file():
        return thumbnail
    return photo if photo.is_file() else None
