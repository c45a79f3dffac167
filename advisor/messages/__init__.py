"""What people and programs read: text and JSON made from an outlook. Strings only."""
