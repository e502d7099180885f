"""petitpied: every macaron shell on a tray measured from one photo with a printed card in it."""

__version__ = "0.1.0"
