"""pieces"""
