"""The ledger: one SQLite file with the answers of weather services, the records, the notices and their
delivery.

`Store` opens it; `payloads`, `records`, `notices`, `outbox` and `marks` are the subjects, a module each.
"""

from advisor.store.database import Store

__all__ = ["Store"]
