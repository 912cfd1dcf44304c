"""Pictures and texts: what they show, and what must never be lost from them."""
