"""The partials of a note: their bands, their phases, and the stiff string through them."""
