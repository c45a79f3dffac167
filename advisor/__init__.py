"""Tells when a labelled lawn treatment may go ahead."""

__version__ = "0.1.0"
