"""Several processes at one place: who judges which shed, what a judge starts from, what a page shows."""
