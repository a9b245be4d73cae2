"""Reading the log: what it holds now, all it ever held, and its photographs."""

import weakref
from contextlib import AbstractContextManager
from functools import partial
from typing import Self

import pandas as pd
from sqlalchemy import Connection

from testpour.common.arguments import checked
from testpour.common.problems import warn
from testpour.logbook.castings import Castings
from testpour.logbook.database import address_words, explained, one_moment, open_database
from testpour.logbook.facts import check_facts
from testpour.logbook.ledger import HISTORY, Ledger
from testpour.logbook.loading import load_castings
from testpour.logbook.log_warnings import Caution
from testpour.logbook.photos import Photos, photo_of
from testpour.logbook.server import clock_words
from testpour.logbook.tables import address_of
from testpour.study.study import Study


class OpenLog:
    """The log of a study, open for reading; `Logbook` can write to it too."""

    @partial(checked, call="Logbook")
    def __init__(self, study: Study, address: str | None = None) -> None:
        self.study = study
        self.address = address_of(study, address)
        self._engine = open_database(self.address)
        weakref.finalize(self, self._engine.dispose)  # closes a log that nobody closed
        check_facts(self._engine, study)
        if words := self.clock_words():
            warn(words, Caution)

    def __repr__(self):
        return f"Log of {self.study.name!r} at {address_words(self.address)}. {self.castings().sentence()}"

    def close(self) -> None:
        """Close the database; so does the end of a block, ``with tp.Logbook(study) as log:``."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *problem: object) -> None:
        self.close()

    def history(self, pour: str) -> pd.DataFrame:
        """Every row ever logged of a pour, superseded ones too: a DataFrame in the order of logging.

        Columns: what ("pour", the reading or "photo"), entry, said (the settings or the reading in words, or the
        file), low, high, age (h), by, note, supersedes, void, logged_at (UTC).

        Parameters
        ----------
        pour : str

        Returns
        -------
        DataFrame
            One row an entry.
        """
        with self.looking() as connection:
            return pd.DataFrame(Ledger(self.study, connection).history(pour), columns=HISTORY)

    def clock_words(self) -> str:
        """By how much this computer's clock differs from that of the log's server, in words; or ``""``."""
        with self.looking() as connection:
            return clock_words(connection)

    def castings(self) -> Castings:
        """What the log holds now, as `Castings`."""
        with self.looking() as connection:
            return load_castings(self.study, connection)

    def photos(self, pour: str | None = None) -> Photos:
        """The photographs of one pour, or of all, in the order of logging.

        Parameters
        ----------
        pour : str, optional
            By default, all pours.

        Returns
        -------
        Photos
        """
        with self.looking() as connection:
            ledger = Ledger(self.study, connection)
            return Photos(photo_of(self.study, row) for row in ledger.photos(pour and ledger.current_pour(pour).pour))

    def looking(self) -> AbstractContextManager[Connection]:
        """A connection for reading, for a `with` block; errors of the database are explained in words."""
        return explained(self._engine)

    def at_one_moment(self) -> AbstractContextManager[Connection]:
        """As `looking`, for several queries that must all see the log as it was at the first."""
        return explained(self._engine, one_moment)
