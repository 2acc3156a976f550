"""The verbs, each in a module of what it is about. `librarian.cli.app` puts them together."""
