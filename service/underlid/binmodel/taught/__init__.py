"""One file for each thing that a bin teaches; `binmodel.learning` puts them together."""
