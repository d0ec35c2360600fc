"""The commands, one file a group."""
