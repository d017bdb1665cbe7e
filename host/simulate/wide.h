// SPDX-License-Identifier: Apache-2.0
// HOST_WIDE before a function with long loops builds it a second time for AVX2; the program picks one at start. Both
// add in the same order and neither fuses a product with a sum, so the answers are the same bits.
#pragma once

// The picking runs before a sanitizer is ready, and other compilers treat templates differently: there, one version.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define HOST_WIDE __attribute__((target_clones("default", "avx2")))
#else
#define HOST_WIDE
#endif
