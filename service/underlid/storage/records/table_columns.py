"""What the tables of the records are made of: their names and the kinds of columns they have.

The tables themselves are in `tables.py` and `photo_tables.py`.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def own_id() -> sa.Column[str]:
    """Return the key of what has an id of its own."""
    return sa.Column("id", sa.String(64), primary_key=True)


def number() -> sa.Column[int]:
    """Return a key that counts up; SQLite does that for its own INTEGER only."""
    kind = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    return sa.Column("number", kind, primary_key=True, autoincrement=True)


def text(name: str) -> sa.Column[str]:
    """Return a column of text of any length."""
    return sa.Column(name, sa.Text, nullable=False)


def word(name: str, **more: Any) -> sa.Column[str]:
    """Return a column of a word: a name, an id from elsewhere, a state."""
    return sa.Column(name, sa.String(128), nullable=False, **more)


def ms(name: str, *, needed: bool = True) -> sa.Column[int]:
    """Return a column of a time, in milliseconds since 1970 UTC."""
    return sa.Column(name, sa.BigInteger, nullable=not needed)


def double(name: str, *, needed: bool = True) -> sa.Column[float]:
    """Return a column of a number with all its digits."""
    return sa.Column(name, sa.Double, nullable=not needed)


def ref(name: str, target: str, *, needed: bool = True, ondelete: str = "CASCADE") -> Any:
    """Return a column with the id of a row elsewhere, which goes as *ondelete* says when that goes."""
    key = sa.ForeignKey(target, ondelete=ondelete)
    return sa.Column(name, sa.String(64), key, nullable=not needed)
