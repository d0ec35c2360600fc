"""The parts of the forecast: shed air, bed, lid and moisture over the next 72 hours."""
