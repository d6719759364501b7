"""What the store and the actions raise on purpose."""


class NotFound(LookupError):
    """There is no such record."""


class Conflict(RuntimeError):
    """The record changed since it was read; nothing was written."""


class Unusable(RuntimeError):
    """The database cannot be used as it is: damaged, foreign, newer than this program, locked or full."""
