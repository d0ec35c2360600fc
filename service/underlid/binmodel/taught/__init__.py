"""One file for each thing that a bin teaches; `learning` puts them together."""
