"""controller"""
