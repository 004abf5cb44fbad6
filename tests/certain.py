"""Maker files in which nothing is at fault unless they say so."""


def certain(maker):
    """State as none every chance that a maker file, as plain data, does not state.

    Measurements are normal unless tails are stated. What is free-form has no chances of its own.
    """
    for component in maker["components"].values():
        component.setdefault("swapped", 0)
        for feature in component.get("features", {}).values():
            if not feature.get("free_form"):
                feature.setdefault("slip", 0)
                feature.setdefault("replaced", 0)
        for mark in component.get("marks", {}).values():
            mark.setdefault("replaced", 0)
            mark.setdefault("doubt", 0)
        for measurement in component.get("measurements", {}).values():
            measurement.setdefault("slip", 0)
            measurement.setdefault("tails", "normal")
    return maker
