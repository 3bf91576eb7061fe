"""What builds cost, and why: amounts, choice of listings, sums, companions, fit, versions."""
