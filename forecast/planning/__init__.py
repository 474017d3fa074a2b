"""From laws and plan to demand, change-outs, purchases and costs."""
