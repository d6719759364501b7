"""What a person does, one function per deed: one transaction, all or nothing."""
