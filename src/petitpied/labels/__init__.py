"""What stands on a box: ingredients by weight, allergens, colours, and what law asks for."""
