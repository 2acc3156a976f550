"""An instrument's memory: backups of it, and programs written into it after being asked."""
