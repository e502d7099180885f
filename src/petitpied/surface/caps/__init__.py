"""Every cap in plan view, the light on it, and the dome that all caps share."""
