"""The simulator in the product, against closed forms, other integrators and an independent simulator."""
