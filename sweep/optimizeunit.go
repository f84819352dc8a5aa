package sweep

import "context"

func (s *optimizer) evaluateUnit(ctx context.Context, all []graded) error {
	return s.carry(ctx, all)
}
