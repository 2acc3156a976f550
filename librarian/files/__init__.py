"""Files that sounds come from and go to."""
