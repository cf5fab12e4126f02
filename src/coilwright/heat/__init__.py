"""Transient heat in every body: conduction, convection, radiation between surfaces, contacts, melting, the charge."""
