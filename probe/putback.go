package probe

import "context"

// HomeToPutBack homes for PutBack: unlike Home it does not switch an owed
// levelling off again.
func (h *Head) HomeToPutBack(ctx context.Context) error { return h.home(ctx) }
