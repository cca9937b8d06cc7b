"""The invented Ardenmoor Museum: its people, objects, history and pictures, made by real acts."""
