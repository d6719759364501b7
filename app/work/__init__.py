"""What a person does, one function per action: one transaction, all or nothing."""
