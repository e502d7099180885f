"""Dark lines on caps: found, followed, judged, measured."""
