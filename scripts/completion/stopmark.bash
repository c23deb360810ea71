# bash completion of stopmark; made by scripts/completions from --help
_stopmark() {
    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} command=${COMP_WORDS[1]}
    local options words
    COMPREPLY=()
    if [ "$COMP_CWORD" -eq 1 ]; then
        COMPREPLY=($(compgen -W "read schedule crew record recheck audit codes merge batch wall review demo --help --version" -- "$cur"))
        return
    fi
    case $command:$prev in
    read:--at) return ;;
    read:--box) return ;;
    read:--unit) COMPREPLY=($(compgen -W "m ft" -- "$cur")); return ;;
    read:--distances) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    read:--out) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    read:--picture) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    read:--threads) return ;;
    schedule:--job) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    schedule:--out) COMPREPLY=($(compgen -d -- "$cur")); return ;;
    schedule:--set) return ;;
    schedule:--export) COMPREPLY=($(compgen -W "en13508 isybau" -- "$cur")); return ;;
    schedule:--paper) COMPREPLY=($(compgen -W "a4 letter" -- "$cur")); return ;;
    schedule:--explain) COMPREPLY=($(compgen -W "all" -- "$cur")); return ;;
    schedule:--threads) return ;;
    crew:--segment) return ;;
    crew:--out) COMPREPLY=($(compgen -d -- "$cur")); return ;;
    record:--segment) return ;;
    recheck:--liner) return ;;
    recheck:--out) COMPREPLY=($(compgen -d -- "$cur")); return ;;
    recheck:--set) return ;;
    audit:--out) COMPREPLY=($(compgen -d -- "$cur")); return ;;
    audit:--segment) return ;;
    audit:--warranty) return ;;
    audit:--grades) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    audit:--chain) return ;;
    codes:--table) COMPREPLY=($(compgen -W "EN NA" -- "$cur")); COMPREPLY+=($(compgen -f -- "$cur")); return ;;
    codes:--q1) return ;;
    codes:--q2) return ;;
    codes:--diameter) return ;;
    batch:--job) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    batch:--workers) return ;;
    batch:--out) COMPREPLY=($(compgen -d -- "$cur")); return ;;
    batch:--time-limit) return ;;
    batch:--memory-limit) return ;;
    batch:--set) return ;;
    batch:--slurm-option) return ;;
    wall:--condition) COMPREPLY=($(compgen -W "partial full" -- "$cur")); return ;;
    wall:--diameter) return ;;
    wall:--head) return ;;
    wall:--long-term-modulus) return ;;
    wall:--initial-modulus) return ;;
    wall:--flexural-strength) return ;;
    wall:--ovality) return ;;
    wall:--safety) return ;;
    wall:--enhancement) return ;;
    wall:--poisson) return ;;
    wall:--cover) return ;;
    wall:--water-above-top) return ;;
    wall:--soil-modulus) return ;;
    wall:--soil-density) return ;;
    wall:--live-load) return ;;
    wall:--total-load) return ;;
    review:--segment) return ;;
    review:--port) return ;;
    esac
    case $command in
    read) options="--at --box --unit --distances --out --picture --threads --thorough --json -q --quiet -h --help" ;;
    schedule) options="--job --out --set --export --paper --explain --compare --threads --json -q --quiet -h --help" ;;
    crew) options="--segment --out --json -q --quiet -h --help" ;;
    record) options="--segment --json -q --quiet -h --help" ;;
    recheck) options="--liner --out --set --json -q --quiet -h --help" ;;
    audit) options="--out --segment --warranty --grades --verify --chain --json -q --quiet -h --help" ;;
    codes) options="--table --q1 --q2 --diameter --json -q --quiet -h --help" ;;
    merge) options="--json -q --quiet -h --help" ;;
    batch) options="--job --workers --out --time-limit --memory-limit --set --slurm --slurm-option --json -q --quiet -h --help" ;;
    wall) options="--condition --diameter --head --long-term-modulus --initial-modulus --flexural-strength --ovality --safety --enhancement --poisson --json -q --quiet -h --help --cover --water-above-top --soil-modulus --soil-density --live-load --total-load" ;;
    review) options="--segment --port --open --json -q --quiet -h --help" ;;
    demo) options="--json -q --quiet -h --help" ;;
    *) return ;;
    esac
    case $cur in
    -*) COMPREPLY=($(compgen -W "$options" -- "$cur")) ;;
    *) COMPREPLY=($(compgen -f -- "$cur")) ;;
    esac
}
complete -o filenames -F _stopmark stopmark
