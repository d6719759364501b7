"""From a printed ingredient list to a formula of one's own: reading, working out, covering, starting, comparing."""
