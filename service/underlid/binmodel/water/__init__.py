"""The bed and its water: what it weighs, how it dries, what was poured in, how much of it is air."""
