"""The searches that decide a property, and the runner that picks among them."""
