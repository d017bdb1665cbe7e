// SPDX-License-Identifier: Apache-2.0
// What start-up asks of a board.
#pragma once

namespace firmware::chip {

/// Safe state, then stop where a debugger or an emulator sees it. Any context.
[[noreturn]] void board_halt();

/// The board's own program, once memory is set up. Returning from it ends in a wait for ever.
void board_main();

}  // namespace firmware::chip
