"""`backup` and `restore`: one file, checked."""
