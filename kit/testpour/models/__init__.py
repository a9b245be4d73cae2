"""The one likelihood of the kit, its posterior, and the fits built on them."""
