"""One module per computation of the ``compute`` command.

A module is named for its computation (``-`` becomes ``_``) and holds ``SUMMARY`` (one line), ``Request`` and
``Answer`` (pydantic models) and ``compute(request: Request) -> Answer``. It is found by being here.
"""
