SENT = 120  # notices that several senders send at once
