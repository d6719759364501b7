"""Stock: what is on hand, lots, counting, what to buy, orders, suppliers and documents."""
