"""What `migrate` does once the tables are there, and `start` each time: guards, rights and the opening of the chain."""

from shared.grants import grant_access
from shared.guards import guard_records

from .opening import open_chain

UPKEEP = (guard_records, grant_access, open_chain)
