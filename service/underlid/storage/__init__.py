"""Where readings and records are kept; SQL stands nowhere else."""
