"""The pure steps of a dump: checksums, packings, numbers, names. They know no chart and no message."""
