"""The one error a user can cause."""


class InputError(ValueError):
    """Something the user gave cannot be used.

    The message is one line: what is wrong, where (file, key, value, unit), what is allowed.
    The command line prints it and exits with code 2; library callers catch it as a `ValueError`.
    """


class StopFailed(InputError):
    """One stop came to no end: its budget is spent, its time is up, or its numbers broke down.

    Whoever runs many stops keeps the reason in that stop's place and goes on with the others.
    """
