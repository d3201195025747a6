"""The one error type meant for the user's eyes."""


class SwingspreadError(Exception):
    """A problem the user can mend; its text is shown as it is, without a traceback."""
