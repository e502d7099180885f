"""Where the camera was and what it saw: cards found, lens, pose, covariance, print checks."""
