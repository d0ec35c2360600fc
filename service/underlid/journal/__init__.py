"""What the keeper did and saw: entry kinds, feedstocks, units, and the way in from any form."""
