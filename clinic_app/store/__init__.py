"""The practice's records in one database file, with their history. SQLAlchemy and Alembic live here only."""

from clinic_app.store.backup import restore
from clinic_app.store.opening import open_store
from clinic_app.store.reading import Counts
from clinic_app.store.store import Store
from clinic_app.store.verify import Check
from clinic_app.store.writing import Writer

__all__ = ["Check", "Counts", "Store", "Writer", "open_store", "restore"]
