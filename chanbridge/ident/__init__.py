"""Ident signals: what plays them, what finds them again in a recording, and recordings put into another order."""
