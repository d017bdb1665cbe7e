// SPDX-License-Identifier: Apache-2.0
// What start-up asks of a board, and offers it.
#pragma once

#include <cstdint>

namespace firmware::chip {

/// Safe state, then stop where a debugger or an emulator sees it, or reset. Any context.
[[noreturn]] void board_halt();

/// The board's own program, once memory is set up. Returning from it ends in a wait for ever.
void board_main();

/// Stack that has never been used since reset.
std::uint32_t stack_free_bytes();

}  // namespace firmware::chip
