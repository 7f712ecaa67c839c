"""Numbers on their way to the device."""

import numpy as np
import pytest

from brimcast.renders import engine


@pytest.mark.parametrize("name, dtype", [("floats", np.float32), ("counts", np.uint32)])
@pytest.mark.parametrize("size", [1, 20])
def test_where_an_array_begins_compiles_nothing(name, dtype, size):
    """NumPy gives memory that begins at any multiple of sixteen bytes; kernels for each would differ."""
    engine.start()
    from brimcast.renders import device
    from brimcast.renders.engine import dr

    buffer = np.arange(64, dtype=dtype)
    views = [buffer[first : first + size] for first in range(16)]
    # Of all views, one in sixteen begins at a multiple of 64 bytes.
    assert len({view.ctypes.data % 64 for view in views}) == 16
    with dr.scoped_set_flag(dr.JitFlag.KernelHistory, True):
        dr.kernel_history_clear()
        copies = [getattr(device, name)(view).numpy() for view in views]
        kernels = {entry["hash"] for entry in dr.kernel_history() if entry["type"].name == "JIT"}
    np.testing.assert_array_equal(copies, views)
    assert len(kernels) == 1
