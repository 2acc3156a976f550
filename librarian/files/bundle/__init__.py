"""The bundle: a collection or a part of it as a zip of plain text. `assets/guide/bundle.md` is its documentation."""
