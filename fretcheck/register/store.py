"""The register: inspections kept, found again, and carried elsewhere.

Conventions: every write is one transaction: after a crash it is there whole or not at all. Ids are short enough to type: the
day and a number, ``261125-3`` for the third inspection of 25 November 2026. Documents are never changed once kept. Keeping the
same content twice gives the same id.

Other rooms keep tables of their own in the same database: see `fretcheck.register.base`, and use `Register.transaction`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import IO, TYPE_CHECKING, Literal

from sqlalchemy import Connection, Engine, func, select
from sqlalchemy.exc import DBAPIError

from fretcheck.errors import StorageError, UsageError
from fretcheck.register.connection import WRITE_OPTION, connect, is_read_only, storage_error
from fretcheck.register.location import Location, find_location
from fretcheck.register.schema import bring_up_to_date
from fretcheck.register.selection import InspectionSummary, Selection, summaries
from fretcheck.register.sound_files import keep_sound, sha256_of, sound_file_below
from fretcheck.register.tables import DOCUMENTS, INSPECTIONS

if TYPE_CHECKING:
    from fretcheck.inspection.document import InspectionDocument

# What documents are made of is imported where they are read or written: `list` and `search` are asked often, and need none of it.


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What became of one imported document."""

    id: str
    was: str | None  # Its id in the register it came from
    new: bool  # False where the same content had been kept before


@dataclass(frozen=True, kw_only=True)
class KeptSound:
    """A sound file that an inspection names."""

    path: str
    file: Path
    # Against the SHA-256 in the document; "not known" where that gives none
    state: Literal["whole", "missing", "changed", "not known"]


def open_register(location: str | Path | None = None, *, create: bool = True) -> Register:
    """Open the register, making or updating its database where needed.

    `location`: path of a file or folder, or a URL (``sqlite:///…``, ``postgresql://…``); None means the environment variable
    ``FRETCHECK_REGISTER``, or else the user's data folder. `create`: False for commands that only read: then a file that was
    named and is not there is an error, not a new register.
    Raises UsageError for a URL that cannot be one; StorageError for a database that is missing, damaged, of another program,
    newer than this software, or out of reach.
    """
    place = find_location(location)
    if place.file is not None and place.given and not create and not place.file.exists():
        raise StorageError(
            f"there is no register at {place}: check the path; the first inspection kept there makes it", path=place.file
        )
    engine = connect(place)
    try:
        bring_up_to_date(engine, place, read_only=place.file is not None and is_read_only(place.file))
    except BaseException as error:
        engine.dispose()
        if isinstance(error, DBAPIError):
            raise storage_error(error, place) from error
        raise
    return Register(engine, place)


class Register(AbstractContextManager["Register"]):
    """An open register; made by `open_register`, closed by `close` or at the end of a ``with`` block."""

    def __init__(self, engine: Engine, location: Location) -> None:
        self._engine = engine
        self.location = location

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    @property
    def folder(self) -> Path:
        """Folder below which the sound files lie."""
        return self.location.folder

    @contextmanager
    def transaction(self, *, write: bool = True) -> Iterator[Connection]:
        """One transaction: committed at the end of the ``with`` block, undone by an exception in it.

        With `write` the write lock is taken at the start, so what is read within stays true until the commit; other writers
        wait. Without it, nothing may be written, and nobody waits.
        Raises StorageError for whatever the database reports, in one line.
        """
        try:
            with self._engine.execution_options(**{WRITE_OPTION: write}).connect() as connection:
                yield connection
                if write:
                    connection.commit()
        except (DBAPIError, OverflowError) as error:
            raise storage_error(error, self.location) from error

    def keep(self, document: InspectionDocument, *, sound_folder: Path | None = None) -> InspectionDocument:
        """Keep an inspection.

        `document`: its `id` is given by the register. `sound_folder`: where the readings' `sound_file` names lie. They are
        copied into the register's folder, and the kept document names the copies, with their SHA-256.
        Returns as kept, with its id: an earlier one where the same sounds had led to the same before.
        Raises StorageError when the database or a sound file cannot be written or read; UsageError for a value that no register
        can hold; the message says which.
        """
        from fretcheck.register.record import insert_document, kept_of_the_same_sounds

        if sound_folder is not None:
            document = self._with_sounds(document, sound_folder)
        document = document.model_copy(update={"id": None})
        with self.transaction() as connection:
            return kept_of_the_same_sounds(connection, document) or insert_document(connection, document)[0]

    def import_documents(self, documents: Sequence[InspectionDocument]) -> Sequence[Imported]:
        """Keep documents from another register, all or none, each under its own id where that is free.

        Their sound files are not read, but must lie below this folder.

        Raises UsageError for a document that cannot be kept, such as one with a path that leaves the register's folder.
        """
        from fretcheck.register.record import insert_document

        for path in {reading.sound_file for document in documents for reading in document.readings}:
            if path is not None:
                sound_file_below(self.folder, path)
        done = []
        with self.transaction() as connection:
            for document in documents:
                kept, new = insert_document(connection, document)
                assert kept.id is not None
                done.append(Imported(id=kept.id, was=document.id, new=new))
        return done

    def load(self, inspection_id: str) -> InspectionDocument:
        """The document of an inspection. Raises UsageError when there is none of that id."""
        return next(self.documents([inspection_id]))

    def documents(self, ids: Sequence[str]) -> Iterator[InspectionDocument]:
        """The documents of inspections, in the order of `ids`, one in memory at a time."""
        from pydantic import ValidationError

        from fretcheck.inspection.document import InspectionDocument

        with self.transaction(write=False) as connection:
            for wanted in ids:
                query = select(DOCUMENTS.c.json).join(INSPECTIONS)
                found = connection.execute(query.where(INSPECTIONS.c.id == wanted.strip().replace("\0", ""))).scalar()
                if found is None:
                    latest = next(iter(connection.execute(summaries(Selection()).limit(1)).scalars()), None)
                    hint = "it is empty" if latest is None else f"the latest is {latest}; `fretcheck list` shows them"
                    raise UsageError(f"no inspection {wanted!r} in the register {self.location}: {hint}")
                try:
                    yield InspectionDocument.model_validate_json(found)
                except ValidationError as error:
                    raise StorageError(
                        f"inspection {wanted} in the register {self.location} is damaged: bring back a backup, or leave it out",
                        path=self.location.file,
                    ) from error

    def select(self, selection: Selection | None = None, *, limit: int | None = None) -> list[InspectionSummary]:
        """Inspections of a selection (all, unless told), newest first, or the newest `limit` of them."""
        with self.transaction(write=False) as connection:
            rows = connection.execute(summaries(selection or Selection()).limit(limit)).mappings()
            return [InspectionSummary(**row) for row in rows]

    def count(self, selection: Selection | None = None) -> int:
        """How many inspections a selection holds (all, unless told)."""
        with self.transaction(write=False) as connection:
            chosen = summaries(selection or Selection()).order_by(None).subquery()
            return connection.execute(select(func.count()).select_from(chosen)).scalar_one()

    def sounds_of(self, document: InspectionDocument) -> Sequence[KeptSound]:
        """The sound files that a document names, and whether they are still what was heard.

        Raises UsageError for a path that leaves the register's folder.
        """
        sounds = []
        named = ((one.sound_file, one.sound_sha256) for one in document.readings if one.sound_file is not None)
        for path, digest in dict.fromkeys(named):
            file = sound_file_below(self.folder, path)
            state: Literal["whole", "missing", "changed", "not known"] = "missing"
            if file.is_file():
                state = "not known" if digest is None else "whole" if sha256_of(file) == digest else "changed"
            sounds.append(KeptSound(path=path, file=file, state=state))
        return sounds

    def export_json(self, stream: IO[str], ids: Sequence[str] | None = None) -> int:
        """Write documents (all, unless told) as one JSON document, and return how many; see `fretcheck.inspection.exchange`."""
        from fretcheck.inspection.exchange import write_json

        return write_json(self.documents([one.id for one in reversed(self.select())] if ids is None else ids), stream)

    def _with_sounds(self, document: InspectionDocument, folder: Path) -> InspectionDocument:
        @cache
        def kept(name: str) -> tuple[str, str]:
            return keep_sound(sound_file_below(folder, name), self.folder)

        readings = list(document.readings)
        for index, one in enumerate(readings):
            if one.sound_file is not None and one.sound_sha256 is None:
                path, sha256 = kept(one.sound_file)
                readings[index] = replace(one, sound_file=path, sound_sha256=sha256)
        return document.model_copy(update={"readings": readings})
