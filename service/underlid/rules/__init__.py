"""One file a condition: the window in, a finding out."""
