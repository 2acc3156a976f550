"""Files in and out: what an import would do, what an export is made of, what was not understood."""
