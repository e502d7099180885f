"""The tray's photo with what was found on it, contact sheets, sheets to pick by."""
