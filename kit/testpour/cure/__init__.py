"""How resin gels, heats itself and hardens through its thickness."""
