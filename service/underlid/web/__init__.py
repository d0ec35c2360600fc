"""The pages and the HTTP interface."""
