"""What was fed, and what becomes of it: eaten, rotted, warming the bed, used up."""
