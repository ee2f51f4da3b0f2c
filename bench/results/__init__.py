"""Files out: tables, names of files, identity."""
