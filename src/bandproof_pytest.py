"""The pytest plugin: rule packs as test modules. Imports nothing of the project until it is needed."""
