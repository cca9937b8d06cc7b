"""Measurements of technical pictures: small functions, each verdict with its limit and reason.

``checks.check_frame`` applies all rules of one frame, ``sets`` those of several frames together.
Limits come in as data (``finding.Rules``); what cannot be measured is "cannot tell", never a pass.
"""
