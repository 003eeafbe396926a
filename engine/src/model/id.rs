//! Small typed ids, so that an index into one list cannot be used on another.

use borsh::{BorshDeserialize, BorshSerialize};

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, BorshSerialize, BorshDeserialize)]
        pub struct $name(pub u32);

        impl $name {
            /// The id of the item at `index`. Rule sets hold far fewer than 2^32 of anything; beyond that it saturates.
            #[must_use]
            pub fn at(index: usize) -> $name {
                $name(u32::try_from(index).unwrap_or(u32::MAX))
            }

            /// The index of the item in its list.
            #[must_use]
            pub fn index(self) -> usize {
                self.0 as usize
            }
        }
    };
}

id!(
    /// A maker of the rule set.
    MakerId
);
id!(
    /// A family of the rule set.
    FamilyId
);
id!(
    /// A field of the rule set.
    FieldId
);
id!(
    /// A slot of one family.
    SlotId
);
id!(
    /// A code of one slot.
    CodeId
);
