"""The tool for measuring and correcting what a 3D printer's controller believes."""
