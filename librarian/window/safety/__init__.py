"""What keeps the library whole: backups and their restore, and the check of the file."""
