"""The record of readings: append-only, each entry tied to the one before."""

from rimread.ledger.audit import Audit, Fault, audit
from rimread.ledger.chain import Draft, Entry
from rimread.ledger.ledger import Filter, Ledger, LedgerError, open_ledger

__all__ = [
    "Audit",
    "Draft",
    "Entry",
    "Fault",
    "Filter",
    "Ledger",
    "LedgerError",
    "audit",
    "open_ledger",
]
