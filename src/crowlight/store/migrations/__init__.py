"""Forward migrations of the database, each in a transaction of its own."""
