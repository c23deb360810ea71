# sm_embed(TARGET SYMBOL FILE): the bytes of FILE become part of TARGET, through the assembler's .incbin, so that gcc and
# clang do it alike and a file of megabytes costs nothing to compile. In C:
#   extern const unsigned char SYMBOL[];       the bytes, followed by a NUL that does not count
#   extern const uint64_t SYMBOL_size;
enable_language(ASM)
function(sm_embed target symbol file)
  get_filename_component(path "${file}" ABSOLUTE)
  set(source "${CMAKE_CURRENT_BINARY_DIR}/embed_${symbol}.S")
  file(CONFIGURE OUTPUT "${source}" @ONLY CONTENT [=[
    .section .rodata
    .global @symbol@
    .type @symbol@, %object
    .balign 16
@symbol@:
    .incbin "@path@"
.L@symbol@_end:
    .byte 0
    .size @symbol@, .L@symbol@_end - @symbol@
    .global @symbol@_size
    .type @symbol@_size, %object
    .balign 8
@symbol@_size:
    .quad .L@symbol@_end - @symbol@
    .size @symbol@_size, 8
    .section .note.GNU-stack, "", %progbits
]=])
  set_source_files_properties("${source}" PROPERTIES OBJECT_DEPENDS "${path}")
  target_sources(${target} PRIVATE "${source}")
endfunction()
