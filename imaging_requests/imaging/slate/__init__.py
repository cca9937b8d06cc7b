"""The slate: a code that says session, shot line, camera and time, and is photographed."""
