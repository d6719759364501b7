"""The SQLAlchemy models by aggregate, the engine and the queries: the only room that knows SQL."""
