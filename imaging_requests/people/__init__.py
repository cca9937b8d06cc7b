"""Users, roles, who may do what, the audit trail, and what every page shares."""
