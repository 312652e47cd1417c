"""Saved views of the fleet list."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import func, select

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.names import clean_name
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import SavedView

MOST_NAME, MOST_VIEWS = 60, 30


@dataclass(frozen=True)
class ViewRow:
    """A saved view. address : within the service, such as /?show=drive&sort=age"""

    id: int
    name: str
    address: str


class SavedViews:
    """Views in the state database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, person: int) -> list[ViewRow]:
        """A person's views by name."""
        chosen = select(SavedView).where(SavedView.person == person).order_by(func.lower(SavedView.name))
        with self._database.read() as session:
            return [ViewRow(r.id, r.name, r.address) for r in session.scalars(chosen)]

    def keep(self, person: int, name: str, address: str) -> ViewRow:
        """Save a view; one with the same name is replaced. Raises InputError."""
        name = clean_name(name)
        if not 1 <= len(name) <= MOST_NAME:
            raise InputError(f"give the view a name of 1 to {MOST_NAME} characters")
        with self._database.write() as session:
            own = session.scalars(select(SavedView).where(SavedView.person == person)).all()
            row = next((r for r in own if r.name == name), None)
            if row is None:
                if len(own) >= MOST_VIEWS:
                    raise InputError(f"{MOST_VIEWS} views are kept already; remove one first")
                row = SavedView(person=person, name=name)
            row.address = address
            session.add(row)
            session.flush()
            return ViewRow(row.id, row.name, row.address)

    def remove(self, person: int, view: int) -> None:
        """Delete a view; does nothing if it belongs to somebody else."""
        with self._database.write() as session:
            row = session.get(SavedView, view)
            if row is not None and row.person == person:
                session.delete(row)
