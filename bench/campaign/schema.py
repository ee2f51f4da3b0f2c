"""Tables of a campaign file."""

APPLICATION_ID = 0x51B5EED
"""Tells a campaign from other SQLite files."""

FORMAT = 2
"""Grows when the tables change."""

SCHEMA = """
CREATE TABLE branch (
    id INTEGER PRIMARY KEY, name TEXT UNIQUE NOT NULL, created TEXT, versions TEXT NOT NULL,
    command TEXT, n_stops INTEGER NOT NULL, total TEXT NOT NULL, seal TEXT NOT NULL
);
CREATE TABLE slot (
    branch_id INTEGER NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, hash TEXT NOT NULL,
    PRIMARY KEY (branch_id, kind, name)
) WITHOUT ROWID;
CREATE TABLE scenario (id INTEGER PRIMARY KEY, hash TEXT UNIQUE NOT NULL, name TEXT, text BLOB);
CREATE TABLE controller (
    id INTEGER PRIMARY KEY, hash TEXT UNIQUE NOT NULL, name TEXT, source TEXT
);
CREATE TABLE machine (id INTEGER PRIMARY KEY, hash TEXT UNIQUE NOT NULL, text TEXT NOT NULL);
CREATE TABLE stop (
    id INTEGER PRIMARY KEY, branch_id INTEGER NOT NULL, key TEXT NOT NULL,
    scenario_id INTEGER NOT NULL, controller_id INTEGER NOT NULL, candidate TEXT NOT NULL,
    parameters TEXT NOT NULL, seed INTEGER NOT NULL, machine_id INTEGER NOT NULL,
    duration REAL, finished TEXT, summary TEXT NOT NULL, seal TEXT NOT NULL,
    UNIQUE (branch_id, key)
)
"""
"""A stop's scenario text is compressed (zlib) canonical JSON; parameters and summary are JSON. What
the seals of stops and branches cover stands in `seals`."""

JOINED = (
    "FROM stop LEFT JOIN scenario ON scenario.id = scenario_id "
    "LEFT JOIN controller ON controller.id = controller_id "
    "LEFT JOIN machine ON machine.id = machine_id"
)
"""A stop with all that belongs to it."""
