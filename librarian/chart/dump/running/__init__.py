"""The compiled side: recognising, reading, writing and explaining messages."""
