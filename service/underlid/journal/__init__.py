"""What the keeper did and saw, feedstocks and units."""
