"""The shipped tables of ``seed_data/reference``, read once into typed, immutable objects that name their sources."""
