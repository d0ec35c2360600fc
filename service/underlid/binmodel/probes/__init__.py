"""What is held of one probe: its recent past in buckets, its calibrations, how it is itself."""
