"""Wood graphs against exact truth: simulated scans, one-to-one matching, figures."""
