"""What orders a large collection: saved searches, tags, duplicates, likeness, the trash, what was done."""
