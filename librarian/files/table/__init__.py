"""Tables of sounds, one a row, that a spreadsheet opens and that come back as they went."""
